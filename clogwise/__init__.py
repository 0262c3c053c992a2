"""The front of clogwise: the command line. It reads files, prints and writes; all thinking is done in inference."""

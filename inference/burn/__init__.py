"""The burn: soot that oxidises in a hot filter, how long it takes, how hot it gets, and what a body may hold."""

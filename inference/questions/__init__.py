"""The questions a person may ask of an answer: what if, what would turn it, why not, the least proof, why rather."""

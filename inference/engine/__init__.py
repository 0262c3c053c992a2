"""The rule engine: the YAML rules compiled to flat conjunctions and run level by level on experta."""

"""The built-in scenario: invented, and labelled so."""

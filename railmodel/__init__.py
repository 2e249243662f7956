"""railmodel: bent rectangular-tube frame rails, from the customer's points to the bender."""

__version__ = "0.1.0"

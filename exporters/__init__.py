"""The model on its way out, one file per kind."""

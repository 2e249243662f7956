"""The faces of the program: command line and page. The only room that imports exporters."""

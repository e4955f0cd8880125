"""What board and report show: the record read into views and pictures, figures, colours."""

"""What is drawn, for board and report alike: pictures as data, figures, colours."""

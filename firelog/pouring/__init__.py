"""The pour: alloys and moulds, what the record knows of a heat, and its verification."""

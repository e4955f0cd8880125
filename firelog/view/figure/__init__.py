"""Figures as plain data for plotly.js: firing and heat, and the parts they are drawn with."""

"""The metal: alloys, freezing, dips of a lance, and how melt and mould cool before the pour."""

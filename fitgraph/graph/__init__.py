"""Parts, features and joints as a graph, and what every joint says of every pair."""

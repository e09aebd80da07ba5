"""Views carry; they do not think."""

"""What to do: the term as goals for every day. The only room that knows a solver."""

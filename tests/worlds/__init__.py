"""Five simulated worlds of homes that work through mastery workbooks, to try what the marks say.

The generator answers question by question and knows nothing of the product's model: where the product sees one normal
learner on a logit scale, a world has guessable questions, shared workbooks, forgetting, open books, lenient markers and
nerves. `python -m tests.worlds` prints the tables of docs/explanation/readiness.md, `--write` puts them there.
"""

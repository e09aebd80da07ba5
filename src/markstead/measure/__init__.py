"""What the marks say: readiness, oral quizzes, spot checks, pace, review, items. Advice with its interval; no gate is shut here."""

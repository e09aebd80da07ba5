"""What the programme demands: its files, the fold of facts into a standing, rulings and next steps."""

"""The adviser's questions, answered with the law: what a withdrawal costs, and why. No HTTP and no JSON here."""

"""The nouns that every stage shares: estimates, figures, findings, roles and states."""

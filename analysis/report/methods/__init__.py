"""The methods page: every model with formula, assumption, source and check; checklists; glossary."""

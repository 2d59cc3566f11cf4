"""A rulebook's file as a form: fields, tables and conditions made from its JSON schema, and read back."""

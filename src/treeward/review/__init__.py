"""The file in which a person corrects what was heard."""

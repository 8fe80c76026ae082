"""One module for each question a practitioner asks; no HTTP."""

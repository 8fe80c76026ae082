"""Packaging: what is filled into which containers, and what each of them will have to hold."""

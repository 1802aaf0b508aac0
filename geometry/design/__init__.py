"""Designing: changing a description as a person at work does, and what a program with a window needs for that."""

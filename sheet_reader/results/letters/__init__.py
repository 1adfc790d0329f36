"""Drafts of letters to volunteers: what is open, asked kindly and never twice."""

"""A claim for a utility's programme: one site, one period, every number with where it comes from, ready or not.

Belongs here: what a claim says and the documents that say it. What a day used and saved is the accounts' to know; a
claim adds days up and adds none of its own.
"""

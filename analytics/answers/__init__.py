"""Answers to coaches' questions: worked out from the latest run-ups, and told in plain words.

Each question has a module with two functions: `work_out` turns run-ups into figures and knows no
words; `tell` turns figures into sentences and computes nothing that a figure does not say.
"""

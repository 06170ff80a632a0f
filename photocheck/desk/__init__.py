"""Desk: what leaves the computation for people (pictures, reports)."""

"""Benchmark: the estimate against phantoms, a naive ruler and the Cramér-Rao bound.

The only place where the phantom and the estimator meet.  May import everything but the app;
nothing but tests imports it.
"""

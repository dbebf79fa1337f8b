"""A second reading of a model file, its own closure, its own distances: the library's adversary.

Nothing here imports `linkage`, save `claims`, which holds the library's answers against these.
"""

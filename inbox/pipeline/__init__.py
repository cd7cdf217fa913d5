"""The one place that loads rows, calls the computation, and stores its results.

`read` fills readings, `regroup` themes, `rank` the ranking and the standings,
`rounds` does them one after the other after something came in, and each week.
"""

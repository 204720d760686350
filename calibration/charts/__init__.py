"""The charts that days and people are compared by, a file each: a plain dict for plotly, and the same as a table.

What is told by colour is told by shape too.
"""

from calibration.charts import brews, days, heat, people_share, person, scatter, staff

__all__ = ["brews", "days", "heat", "people_share", "person", "scatter", "staff"]

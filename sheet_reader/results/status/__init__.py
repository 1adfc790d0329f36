"""Who has sent what: sites by weeks, what waits and why, photos that gave nothing."""

"""Room 1, study: what is counted, where and when; read from ``study.toml`` and the site list."""

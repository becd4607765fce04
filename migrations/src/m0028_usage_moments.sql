CREATE INDEX usage_moment ON usage (at)

"""The local site: server-rendered, works with scripts off, talks to nobody else. Knows no formula."""

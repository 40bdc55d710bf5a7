"""Pages, pictures and lists: what people read, made from frames. No clock, no file outside the package."""

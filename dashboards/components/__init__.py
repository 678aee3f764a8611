"""Parts of pages: each draws one kind of answer of the registry."""

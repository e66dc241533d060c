"""Parts of the documents that are made from the code: `python -m tests.documents` writes them."""

"""Is the answer to a picture steady: which picture does each LED show, and when?"""

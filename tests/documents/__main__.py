"""Write the documents that are made from the code."""

from tests.documents.pages import PAGES

if __name__ == "__main__":
    for path, make in PAGES.items():
        path.write_text(make())
        print(path)

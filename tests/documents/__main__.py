"""Write the documents that are made from the code, and draw their pictures."""

from tests.documents.pages import PAGES
from tests.documents.pictures import FOLDER, PICTURES

if __name__ == "__main__":
    for path, make in PAGES.items():
        path.write_text(make())
        print(path)
    FOLDER.mkdir(exist_ok=True)
    for name, draw in PICTURES.items():
        draw().quantize(256).save(FOLDER / name, optimize=True)
        print(FOLDER / name)

"""What the site has beside the pages of `docs/`: a hook of MkDocs.

References come from the models, pictures from the code, all made anew at each build. Files of the
repository that pages link to (`../config/...`, `../CHANGELOG.md`) come along, so that a link works
on the site as it does in the tree.
"""

import re
from pathlib import Path

from mkdocs.config.defaults import MkDocsConfig
from mkdocs.structure.files import File, Files
from mkdocs.structure.pages import Page

from tests.docs import message_reference, pictures, plant_reference

ROOT = Path(__file__).parents[2]
LINK = re.compile(r"\]\(\.\./((?:config/[^)#\s]+)|CHANGELOG\.md)")
PAGES = {"CHANGELOG.md": "changes.md"}


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Add what is generated, and the files that pages link to."""
    texts = {
        "plant-file.md": plant_reference.page(),
        "messages.md": message_reference.page(),
        "changes.md": (ROOT / "CHANGELOG.md").read_text("utf-8").replace("](docs/", "]("),
        **pictures.drawn(),
    }
    for uri, text in texts.items():
        files.append(File.generated(config, uri, content=text))
    linked = {
        target
        for file in files.documentation_pages()
        for target in LINK.findall(texts.get(file.src_uri) or file.content_string)
    }
    for path in sorted(linked - PAGES.keys()):
        files.append(File.generated(config, path, content=(ROOT / path).read_text("utf-8")))
    return files


def on_page_markdown(markdown: str, page: Page, config: MkDocsConfig, files: Files) -> str:
    """Lead links out of `docs/` to what came along."""
    del page, config, files
    return LINK.sub(lambda found: f"]({PAGES.get(found[1], found[1])}", markdown)

"""A kiln and a load to be edited, and edits of them without a screen."""

from pathlib import Path

from firing.tui.form_document import Edit, FormDocument, open_form, rearranged
from firing.tui.form_kinds import Form

from firing.files.tomlfile import KeyPath, describe_path

KILN = """# the shed
name = "Shed kiln"            # painted on the lid
power_kw = 6
rated_volts = 230

volume_l = 100                # counted in shelves
shape = "box"

# what is behind the steel
[[wall]]
material = "insulating brick 1260"
thickness_mm = 114

# added last winter
[[wall]]
material = "ceramic fibre blanket 128"
thickness_mm = 25             # one sheet

[fitted]
power = 0.93                  # tired
loss = 1.1
date = 2025-03-01
basis = "2 logs"
"""

LOAD = """dryness = "bone dry"
body = "stoneware"

# on the top shelf
[[piece]]
name = "bowl"
count = 12
thickest_mm = 6
mass_kg = 0.5

# below
[[piece]]
name = "jar"
thickest_mm = 9
mass_kg = 1.75                # with its lid
"""


def form_document(tmp_path: Path, form: Form, text: str) -> FormDocument:
    path = tmp_path / f"{form.kind}.toml"
    path.write_text(text, encoding="utf-8")
    return open_form(form, str(path))


def type_in(document: FormDocument, path: KeyPath, text: str) -> None:
    assert document.apply(document.state.retyped(path, text), describe_path(path))


def do(document: FormDocument, what: str, path: KeyPath) -> KeyPath:
    state = document.state
    return take(document, rearranged(state.form, state.data, what, path))


def take(document: FormDocument, edit: Edit) -> KeyPath:
    assert document.apply(document.state.edited(edit), edit.label)
    return edit.at

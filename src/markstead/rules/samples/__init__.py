"""Sample programmes, invented, that ship with Markstead."""

from importlib.resources import files


def sample_texts(name: str = "harbour") -> tuple[str, str]:
    """Rules and workbooks of a sample programme, as the texts of its two files."""
    folder = files("markstead.rules.samples") / name
    rules = (folder / "programme.toml").read_text(encoding="utf-8")
    return rules, (folder / "workbooks.csv").read_text(encoding="utf-8")

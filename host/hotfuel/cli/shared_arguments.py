"""Arguments and options of the form NAME=VALUE."""

from pathlib import Path

from hotfuel.errors import UsageError


def groups(arguments: list[str], what: str) -> dict[str, list[Path]]:
    """NAME=PATH[,PATH...] arguments as {name: paths}. A name may be given more than once."""
    found: dict[str, list[Path]] = {}
    for text in arguments:
        name, equals, paths = text.partition("=")
        if not equals or not name.strip() or not paths.strip(","):
            raise UsageError(f'"{text}" is not NAME={what}[,{what}...]; write for example before=monday,tuesday after=friday')
        found.setdefault(name.strip(), []).extend(Path(path) for path in paths.split(",") if path)
    return found


def pairs(texts: list[str] | None, option: str) -> dict[str, str]:
    """NAME=VALUE options as {name: value}. Raises UsageError that names the option."""
    found = {}
    for text in texts or []:
        key, equals, value = text.partition("=")
        if not equals or not key or not value:
            raise UsageError(f'{option} "{text}" is not NAME=VALUE')
        found[key] = value
    return found


def gathered(texts: list[str] | None, option: str) -> dict[str, list[str]]:
    """{name: every VALUE of it}."""
    found: dict[str, list[str]] = {}
    for text in texts or []:
        for name, said in pairs([text], option).items():
            found.setdefault(name, []).append(said)
    return found

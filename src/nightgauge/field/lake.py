"""Where the samples' lake lies: a folder beside field.toml, or an address in an object store."""

from pathlib import Path
from urllib.parse import urlsplit

from nightgauge.field.problems import Scope

USUAL_FOLDER = "lake"


def find_bad_lake(samples: str | None, lake: str | None, scope: Scope) -> None:
    """Note a lake that nothing would use, and one whose address holds what must not be written down.

    What is found is not shown in the second case: the message may end in a log.
    """
    if lake is None:
        return
    if samples != "lake":
        scope.add(
            "lake", "a lake that is not used", 'samples = "lake" beside it', "add that line, or take this one out"
        )
    try:
        has_secret = "@" in urlsplit(lake).netloc
    except ValueError:
        scope.add(
            "lake", "an address that cannot be read", 'a folder, or an address like "s3://bucket/lake"', "mend it"
        )
        return
    if has_secret:
        scope.add(
            "lake",
            "an address with a name or a password in it",
            'an address alone, like "s3://bucket/lake"',
            "give access in the environment (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_ENDPOINT_URL)",
        )


def lake_address(lake: str | None, folder: Path) -> str:
    """Return the lake's address, or the absolute path of its folder where it is none.

    Examples
    --------
    >>> lake_address("s3://bucket/lake/", Path("/fields/one"))
    's3://bucket/lake'
    >>> lake_address(None, Path("/fields/one"))
    '/fields/one/lake'

    """
    if lake is not None and "://" in lake:
        return lake.rstrip("/")
    return str(folder / (lake or USUAL_FOLDER))

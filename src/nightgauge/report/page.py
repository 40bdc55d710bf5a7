"""A page as one file: template, style, the one script, and the policy that refuses the network."""

import base64
import hashlib
from functools import cache
from importlib import resources

import jinja2
import vl_convert
from markupsafe import Markup

from nightgauge.report.cards import safe_json
from nightgauge.report.charts import quiet_look
from nightgauge.report.colours import DARK, LIGHT, PRINT, declarations

_VEGA_LITE = "6.4"


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("nightgauge.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _asset(name: str) -> str:
    return resources.files("nightgauge.report").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _script() -> str:
    """Return the chart library and the page's own script; nothing in it can end the script element."""
    library = vl_convert.javascript_bundle(vl_version=_VEGA_LITE)  # type: ignore[call-arg]  # its stub has no defaults
    script = f"{library}\n{_asset('page.js')}"
    return script.replace("</script", "<\\/script")


@cache
def _policy() -> str:
    digest = base64.b64encode(hashlib.sha256(_script().encode()).digest()).decode()
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; img-src data:; "
        "font-src data:; base-uri 'none'; form-action 'none'"
    )


@cache
def _style() -> str:
    return (
        f":root {{ color-scheme: light dark; {declarations(LIGHT)} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {declarations(DARK)} }} }}\n"
        f"@media print {{ :root {{ color-scheme: light; {declarations(PRINT)} }} }}\n"
        f"{_asset('page.css')}"
    )


def rendered(template: str, **context: object) -> str:
    """Return a page as one HTML file that needs no network.

    Parameters
    ----------
    template : str
        Name of a template of this package.
    **context
        What the template names; every text in it is escaped.

    """
    return (
        _environment()
        .get_template(template)
        .render(
            style=Markup(_style()),
            script=Markup(_script()),
            policy=_policy(),
            look=safe_json(quiet_look()),
            **context,
        )
    )

"""The report as one HTML file: pictures inside, nothing from any network, no script."""

from __future__ import annotations

from photoangle.output.plain import plain_value
from photoangle.output.table import full_stop
from photoangle.report.content import report_content


def report_html(measurement, answers, axles, steps, report, now=None):
    """The report's text.  Parameters as for `content.report_content`.  Returns str.

    Every text goes through the template engine's escaping: what the user, a file name or a photo's metadata
    says stays text.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(loader=PackageLoader("photoangle.report"),
                              autoescape=True,
                              trim_blocks=True,
                              lstrip_blocks=True,
                              undefined=StrictUndefined,
                              finalize=plain_value)
    environment.filters["stop"] = full_stop
    return environment.get_template("report.html").render(
        **report_content(measurement, answers, axles, steps, report, now))

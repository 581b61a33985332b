"""A check, a visit or a bike as one HTML file that loads nothing."""

from acoustic.report.page.build import page, page_of_check
from acoustic.report.page.embed import svg_of
from acoustic.report.page.section import Lead, Section
from acoustic.report.page.slip import page_of_slip

__all__ = ["Lead", "Section", "page", "page_of_check", "page_of_slip", "svg_of"]

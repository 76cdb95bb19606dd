"""Results to tables, workbook, notebook and page; and safely into their folder."""

from analysis.report import comparing, drivers, sections
from analysis.report.demo import report_folder
from analysis.report.manifest import read_manifest
from analysis.report.publish import check_output_folder, publish
from analysis.report.read_back import read_tables
from analysis.report.tables import write_tables

__all__ = [
    "check_output_folder",
    "comparing",
    "drivers",
    "publish",
    "read_manifest",
    "read_tables",
    "report_folder",
    "sections",
    "write_tables",
]

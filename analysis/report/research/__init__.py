"""A study of site reactions into its folder, and its parts as a page shows them."""

from analysis.report.research.publish import (
    check_study_folder,
    publish_study,
    read_study,
)

__all__ = ["check_study_folder", "publish_study", "read_study"]

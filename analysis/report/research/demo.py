"""The study of the demo log, made in memory: what the notebook shows by itself."""

from importlib import resources

from analysis.policy import Policy
from analysis.research import Study, run_study

#: The demo log is invented: there is nobody to hide.
_NO_SECRET = b"the demo log is invented"


def demo_study() -> Study:
    """Study the demo log of an invented health service.

    Returns
    -------
    Study
        The same each time.
    """
    with resources.as_file(resources.files("analysis._demo")) as folder:
        names = ("checks.csv", "infusions.csv", "lines.csv")
        policy = Policy.load(folder / "policy.toml")
        study, _ = run_study([folder / n for n in names], policy, _NO_SECRET)
    return study

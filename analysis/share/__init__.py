"""A summary that may leave the service: figures of wards, nothing about a person."""

from analysis.share.figures import MEASURES, SHARED, Summary, summarise
from analysis.share.pooling import pool_wards
from analysis.share.publish import share

__all__ = ["MEASURES", "SHARED", "Summary", "pool_wards", "share", "summarise"]

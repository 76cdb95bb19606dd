"""Delivery: the expected line, the noise of a ward's readings, and what happened."""

from analysis.delivery.judge import Delivery, judge_delivery
from analysis.delivery.threshold import Threshold

__all__ = ["Delivery", "Threshold", "judge_delivery"]

"""Errors of the analysis room.

AnalysisError
├── SampleError        a sample table that cannot be analysed (shape, order, not finite)
├── CalibrationError   a stand or bow that no mounting can be read from
├── BudgetError        peaks, runways or rates that no speed budget can be drawn up from
└── SeriesError        numbers of several swings that no statistic can be computed from
"""


class AnalysisError(ValueError):
    """Root of every error that `analysis` raises."""


class SampleError(AnalysisError):
    """A sample table that cannot be analysed; the text says what was expected."""


class CalibrationError(AnalysisError):
    """A stand or bow from which no mounting can be read; the text says what to repeat."""


class SeriesError(AnalysisError):
    """Numbers of several swings that no statistic can be computed from; the text says why."""


class BudgetError(AnalysisError):
    """Peaks, runways or rates that no speed budget can be drawn up from; the text says why."""

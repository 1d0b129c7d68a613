"""Row rules: limits outside which a single value cannot be true, and the words that go back with a refused row."""

from __future__ import annotations

LIMITS: dict[str, float] = {
    "speed_most_rpm": 3600,  # synchronous speed of a two-pole motor at 60 Hz
    "power_least_w": -100,  # a small negative standby is meter offset, kept and seen; more is a clamp put on backwards
    "power_most_w": 25_000,  # the largest circulation pumps of public pools, about 30 hp (common practice, no source)
    "flow_most_m3h": 400,
}

REASONS: dict[str, str] = {
    "cannot_be_read": "The row cannot be read.",
    "pump_missing": (
        "The row names no pump; write the pump's code in it, or in the file name where the dialect takes it from there."
    ),
    "pump_not_in_register": (
        "The pump is not in pumps.csv, or its site is set aside; add it, and the next review reads these rows again."
    ),
    "hour_does_not_exist": (
        "This wall-clock time was skipped when the clock went forward; export in UTC or with the offset."
    ),
    "time_out_of_range": (
        "The time stamp is before 2000 or after 2099; check the logger's clock and the declared format."
    ),
    "speed_out_of_range": "No pool pump runs at this speed; check the unit of the column.",
    "power_out_of_range": "No pump of this size draws this power; check the unit of the column and the meter clamp.",
    "counter_out_of_range": "The counter is negative or beyond any meter's range.",
    "flow_out_of_range": "No pool pump moves this flow; check the unit of the column.",
    "aux_word_unknown": (
        "The auxiliary column holds a word that the dialect does not declare; add it to its on or off list."
    ),
    "nothing_measured": "Every quantity in the row is empty.",
    "same_row_again": "The same values for the same pump and instant are already held; nothing to do.",
    "conflicting_repeat": (
        "Other values for the same pump and instant are already held; find out which export is right."
    ),
    "file_set_aside": "The whole file was set aside by a critical expectation; see the data section of the review.",
}


def reason(rule: str, detail: str | None) -> str:
    """The sentence for a refused row; ``detail`` says what could not be read."""
    return f"The row {detail}." if detail else REASONS[rule]

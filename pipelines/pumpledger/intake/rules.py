"""Row rules: limits outside which a single value cannot be true, and the words that go back with a refused row."""

from __future__ import annotations

from dataclasses import dataclass

FATES = ("readings", "duplicates", "quarantine", "rejects")
"""What becomes of a data row: one of these, always."""

LIMITS: dict[str, float] = {
    "speed_most_rpm": 3600,  # synchronous speed of a two-pole motor at 60 Hz
    "power_least_w": -100,  # a small negative standby is meter offset, kept and seen; less is no measurement
    "power_most_w": 25_000,  # the largest circulation pumps of public pools, about 30 hp (common practice, no source)
    "flow_most_m3h": 400,
    "air_least_c": -60,
    "air_most_c": 70,
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """What goes back with a refused row: what is wrong with it, and what to do."""

    wrong: str
    remedy: str

    @property
    def sentence(self) -> str:
        return f"{self.wrong} {self.remedy}"


REFUSALS: dict[str, Refusal] = {
    "cannot_be_read": Refusal(
        "The row cannot be read.",
        "Export these rows again, whole and unedited; if rows fail all alike, the dialect does not fit the file.",
    ),
    "pump_missing": Refusal(
        "The row names no pump.",
        "Write the pump's code in it, or in the file name where the dialect takes it from there.",
    ),
    "pump_not_in_register": Refusal(
        "The pump is not in pumps.csv, or its site is set aside.",
        "Add it or mend its site, and the next review reads these rows again; where the code is wrong, correct it.",
    ),
    "hour_does_not_exist": Refusal(
        "This wall-clock time was skipped when the clock went forward.", "Export in UTC or with the offset."
    ),
    "time_jumps_and_returns": Refusal(
        "The logger's clock jumped far away for these rows and came back: the rows before and after fit together, and "
        "these lie elsewhere.",
        "Look for a power cut or a failing clock battery; export the rows again with the right times, if they are known.",
    ),
    "time_out_of_range": Refusal(
        "The time stamp is before 2000 or after 2099.", "Check the logger's clock and the declared format."
    ),
    "speed_out_of_range": Refusal("No pool pump runs at this speed.", "Check the unit of the column."),
    "power_out_of_range": Refusal(
        "No pump of this size draws this power.", "Check the unit of the column and the meter clamp."
    ),
    "counter_out_of_range": Refusal(
        "The counter is negative or beyond any meter's range.", "Check the unit of the column, then read the meter."
    ),
    "flow_out_of_range": Refusal("No pool pump moves this flow.", "Check the unit of the column."),
    "temperature_out_of_range": Refusal("No air is this cold or hot.", "Check the unit of the column."),
    "aux_word_unknown": Refusal(
        "The auxiliary column holds a word that the dialect does not declare.", "Add it to its on or off list."
    ),
    "nothing_measured": Refusal(
        "Every quantity in the row is empty.", "Nothing where the logger had nothing to say; else export again."
    ),
    "same_row_again": Refusal("The same values for the same pump and instant are already held.", "Nothing to do."),
    "conflicting_repeat": Refusal(
        "Other values for the same pump and instant are already held.", "Find out which export is right."
    ),
    "export_withdrawn": Refusal("The whole export was withdrawn by hand.", "Nothing to do."),
    "file_set_aside": Refusal(
        "The whole file was set aside by a critical expectation.",
        "See the data section of the review, and export the file again when its cause is mended.",
    ),
}

REASONS: dict[str, str] = {rule: refusal.sentence for rule, refusal in REFUSALS.items()}


def reason(rule: str, detail: str | None) -> str:
    """The sentence for a refused row; ``detail`` says what could not be read."""
    return f"The row {detail}." if detail else REASONS[rule]

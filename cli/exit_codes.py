"""What a command ends with."""

DONE, DEFECT, AT_FAULT, VERDICT_FAILS, INTERRUPTED = 0, 1, 2, 3, 130

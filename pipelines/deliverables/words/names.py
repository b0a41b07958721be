"""What verdicts and ways of leaving are called where a person reads them."""

VERDICTS = {"sure": "sure", "cannot_tell": "cannot be judged from this lidar", "no": "no"}
STATES = {**VERDICTS, "not_needed": "not needed"}
PARTS = {
    "cause": "Is it surface water?",
    "fall": "Is there fall enough, or lift?",
    "outfall": "Does the outfall take it?",
    "cure": "Does that end it?",
}
"""Parts of the verdict as a person asks for them."""
SHORT_PARTS = {
    "cause": "it is surface water", "fall": "enough fall", "lift": "the pump copes",
    "fall_and_lift": "enough fall, and the pump copes", "outfall": "outfall takes it", "cure": "ends the trouble",
    "cure_of_surface_water": "ends what is surface water",
}  # fmt: skip
SHORT_STATES = {**STATES, "cannot_tell": "cannot be judged"}
"""The same where there is room for a word."""
MODES = {
    "gravity": "by gravity",
    "pump": "pumped",
    "daylight": "to daylight on the lot",
    "soakaway": "into a dry well",
    "none": "nothing to build",
}
WAYS_FROM = {
    "gravity": "by gravity from", "pump": "pumped from", "daylight": "daylight on the lot, from",
    "soakaway": "a dry well, from", "none": "",
}  # fmt: skip
"""The same after where it goes and before what it comes from."""
CODES = {
    "takes_it": "takes it", "holds_water": "holds water", "cannot_tell": "cannot be judged from this lidar",
    "part": "submerged part of the time", "always": "always submerged", "soakaway": "dry well",
}  # fmt: skip
"""Codes of layers as a person reads them."""
EDGES = {
    "edge_n": "over the north edge",
    "edge_e": "over the east edge",
    "edge_s": "over the south edge",
    "edge_w": "over the west edge",
    "enclosed": "nowhere: closed in",
}

"""What the numbers of hydraulics must keep: the checks of `pipelines.inputs.limits`, raising `HydraulicsError`."""

from functools import partial

from pipelines.hydraulics.errors import HydraulicsError
from pipelines.inputs import limits

require_positive = partial(limits.require_positive, HydraulicsError)
require_not_negative = partial(limits.require_not_negative, HydraulicsError)
require_finite = partial(limits.require_finite, HydraulicsError)
require_fraction = partial(limits.require_fraction, HydraulicsError)

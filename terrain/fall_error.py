"""How far a fall read from lidar may be off: much less than a height, over a short way."""

from dataclasses import dataclass

import numpy as np

from terrain.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class LidarError:
    """The error of ground heights in two parts: one that two places share the more the nearer they lie, and one
    that every cell has for itself.

    Attributes
    ----------
    rmse : float
        Of one height. [m]
    own_share : float
        Share of the variance that a cell has for itself. 0.36 is what 6 cm of repeatability on smooth ground
        within 10 cm of RMSE leave, the two limits of a common quality level (USGS Lidar Base Specification,
        quality level 2; from memory). [-]
    correlation_length : float
        Distance over which the shared part falls to 1/e; common practice, no source. [m]
    """

    rmse: float = 0.10
    own_share: float = 0.36
    correlation_length: float = 50.0

    def of_fall(self, distance: float | FloatArray, *, averaged_cells: float = 1.0) -> FloatArray:
        """Standard error of the difference of two heights.

        Parameters
        ----------
        distance : float or ndarray
            Between them. [m]
        averaged_cells : float
            Cells that each height is the mean of. [-]

        Returns
        -------
        ndarray
            [m]

        Notes
        -----
        sigma^2 = 2 rmse^2 (own / n + (1 - own) (1 - exp(-d / L))): the variogram of a nugget and an
        exponential model.

        References
        ----------
        .. [1] N. Cressie, "Statistics for Spatial Data", Wiley, 1993, sec. 2.3.1 (exponential variogram).
        """
        shared = (1.0 - self.own_share) * -np.expm1(-np.asarray(distance, dtype=np.float64) / self.correlation_length)
        return np.sqrt(2.0 * self.rmse**2 * (self.own_share / averaged_cells + shared))

"""Rules of the trade on lidar and ground, as the steps on the ground take them."""

from typing import TypedDict

from pipelines.inputs.rules import Rules
from terrain.arrays import BoolArray
from terrain.flow.drainage import Drainage
from terrain.flow.embankments import EmbankmentRules
from terrain.flow.lot_ground import GroundLimits
from terrain.flow.low_spots import LowSpot, find_low_spots
from terrain.lidar_error import fall_error
from terrain.swale.banks import BankRules


class LidarNoise(TypedDict):
    """How a height's error is shared and forgotten, as `fall_error` takes it. [-], [m]"""

    shared_variance: float
    noise_length: float


def lidar_noise(rules: Rules) -> LidarNoise:
    """How a height's error is shared and forgotten."""
    return LidarNoise(
        shared_variance=rules["lidar_shared_variance"].likely, noise_length=rules["lidar_noise_length"].likely
    )


def ground_limits(rules: Rules) -> GroundLimits:
    """What a raster must be to say anything about a lot."""
    return GroundLimits(
        least_cells=rules["least_cells_on_lot"].likely,
        coarse=rules["coarsest_cell"].likely,
        most_unknown=rules["most_unknown_ground"].likely,
        told_unknown=rules["told_unknown_ground"].likely,
        step=rules["surface_model_step"].likely,
        share_of_steps=rules["surface_model_share"].likely,
    )


def bank_rules(rules: Rules) -> BankRules:
    """What counts as a bank of a swale."""
    return BankRules(
        shelf=rules["bank_shelf"].likely,
        flatter=rules["bank_flatter"].likely,
        stands_out=rules["bank_stands_out"].likely,
        gap=rules["bank_gap"].likely,
    )


def embankment_rules(rules: Rules) -> EmbankmentRules:
    """What counts as an embankment: no lower than what lidar can show over a bank's width."""
    width = rules["embankment_width"].likely
    shown = rules["low_spot_sigmas"].likely * fall_error(rules["lidar_rmse"].likely, width, **lidar_noise(rules))
    return EmbankmentRules(
        length=rules["embankment_length"].likely,
        width=width,
        height=max(rules["embankment_height"].likely, shown),
        evenness=rules["embankment_evenness"].likely,
        over=rules["embankment_over"].likely,
    )


def site_low_spots(
    drainage: Drainage,
    rules: Rules,
    *,
    prefix: str = "L",
    min_area: float | None = None,
    within: BoolArray | None = None,
) -> tuple[LowSpot, ...]:
    """Low spots of a site's ground, largest volume first; of the least area [m2] that is listed where none is given;
    those alone that reach some cells where these are given."""
    return find_low_spots(
        drainage,
        rmse=rules["lidar_rmse"].likely,
        **lidar_noise(rules),
        min_depth=rules["low_spot_least_depth"].likely,
        min_area=rules["low_spot_least_area"].likely if min_area is None else min_area,
        sigmas=rules["low_spot_sigmas"].likely,
        prefix=prefix,
        within=within,
    )


def site_puddles(drainage: Drainage, rules: Rules) -> tuple[LowSpot, ...]:
    """Depressions as deep as a low spot that is listed, and too small to be."""
    if drainage.ground.grid.cell_area >= rules["low_spot_least_area"].likely:
        return ()
    listed = {spot.bottom for spot in site_low_spots(drainage, rules)}
    return tuple(spot for spot in site_low_spots(drainage, rules, min_area=0.0) if spot.bottom not in listed)

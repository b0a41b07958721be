"""The job on one lot, stage by stage; `pipelines.lot` runs them all, and each single step those that it needs."""

from dataclasses import dataclass
from functools import cached_property

from shapely import Point

from pipelines.deliverables.findings.gathering import flow_paths_of, low_spots_of
from pipelines.deliverables.findings.lot import FlowPath, StandingWater
from pipelines.hydraulics.pumping.pump_curve import pump_curve
from pipelines.hydrology.flow_path import travel_rules
from pipelines.hydrology.low_spot_ponds import rain_that_fills
from pipelines.hydrology.surface_map import SurfaceMap, group_at, map_surfaces
from pipelines.hydrology.surfaces import infiltration_rate
from pipelines.inputs.ground_rules import site_low_spots
from pipelines.inputs.possible_ground import best_surface, draw_for_lot, grounds_wanted, on_shots
from pipelines.inputs.site_ground import SiteInputs, ground_of, read_lot_ground
from pipelines.layout.diagnosis.coarse_cells import CellDoubt, what_hangs_on_cells
from pipelines.layout.diagnosis.diagnose import (
    Diagnosis,
    Reckoning,
    diagnose,
    divide_lot,
    spot_places,
    storm_on_lot,
)
from pipelines.layout.diagnosis.division import Division, lot_ground, studied_ground
from pipelines.layout.diagnosis.hidden_culverts import HiddenCulvert, banks_near, if_open
from pipelines.layout.diagnosis.lot_water import LotWater, excess_by_cell
from pipelines.layout.diagnosis.possible_troubles import PlaceOnGrounds, places_on_grounds, soaks_on_lot
from pipelines.layout.diagnosis.situation import Situation, describe_lot
from pipelines.layout.diagnosis.troubles import SpotPlace
from pipelines.layout.diagnosis.upslope import bearing_ground
from pipelines.layout.edits import NO_EDITS, Edits, edited_plan, edited_sites, edited_spots
from pipelines.layout.options import PlanInputs
from pipelines.layout.other_storms import OtherStorm, other_storms, rains_run
from pipelines.layout.planner import LotPlan, Sited, plan_lot, site_works
from pipelines.layout.swale.found_outfall import GivenWater, OutfallLook, with_given_water
from pipelines.layout.verdict_parts import looked_no_farther
from pipelines.layout.way_ground import NOTHING_CAUGHT, odds_everywhere, spare_everywhere, way_ground
from pipelines.layout.ways.outfall_water import look_for_lot
from pipelines.layout.ways.way_values import WayInputs
from pipelines.lot_inputs import LotInputs
from terrain.arrays import BoolArray
from terrain.flow.conditioning import CulvertLine, opened_along
from terrain.flow.drainage import Drainage, drain_ground
from terrain.flow.found_spots import found_on
from terrain.flow.low_spots import LowSpot
from terrain.flow.pysheds_adapter import with_pysheds
from terrain.grid import Frame
from terrain.ground import ROOF, Ground
from terrain.lidar.best_estimate import Estimate
from terrain.lidar.grounds import PossibleGrounds
from terrain.raster import Raster
from terrain.reading.surface import Surface
from terrain.reading.wider_cells import in_wider_cells
from terrain.reason import reason

STAGES = (
    ("ground", "reading the ground and growing the window", 0.1),
    ("drainage", "following the water", 0.3),
    ("low_spots", "finding low spots", 0.4),
    ("flow_paths", "drawing lines of flow", 0.42),
    ("division", "dividing the ground by where its water collects", 0.45),
    ("reckoning", "mapping surfaces", 0.47),
    ("water", "running the design storm over the lot as it is", 0.5),
    ("diagnosis", "diagnosing the lot", 0.55),
    ("places_on_grounds", "trying each place on the grounds that lidar allows", 0.555),
    ("looks", "looking along each outfall", 0.56),
    ("unseen", "looking for banks that may hide a culvert", 0.565),
    ("cells", "draining it in wider cells", 0.567),
    ("sited", "siting what catches it", 0.57),
    ("way_ground", "looking for ways out", 0.6),
    ("fall_to_spare", "measuring fall to spare", 0.65),
    ("odds_of_fall", "measuring it on the grounds that lidar allows", 0.66),
    ("planned", "laying lines, sizing, pricing and choosing", 0.7),
    ("storms", "running the other storms of the table", 0.85),
)
"""Stages of the job in order: attribute of `LotStages`, what is being done, and how far that is. [-]"""


@dataclass(frozen=True)
class LotStages:
    """The job on one lot, stage by stage: each is worked out once, from those before it.

    The single steps call the same stages, with what their files hold in place of what a stage would find.

    Attributes
    ----------
    lot : LotInputs
        The site file opened.
    surface : Surface or None
        Ground that a file holds, in place of the site's raster.
    edits : Edits
        What was struck out or moved in the layers of earlier steps.
    drawn : PossibleGrounds or None
        Grounds that were drawn already, of the same lidar.
    given_water : tuple of GivenWater
        Water at its outfalls that was found otherwise, in place of the lot's own look.
    beside_pysheds : bool
        Take filled surface and accumulation of pysheds too; the kernel's are the same to the bit, and sooner there.
    whole : bool
        List low spots too that none of the lot's water comes to: what is drawn and laid wants them, what the ground
        says of the lot's own water does not.
    chosen_alone : bool
        Lay no way off the lot for its price beside the chosen one's alone.
    """

    lot: LotInputs
    surface: Surface | None = None
    edits: Edits = NO_EDITS
    drawn: PossibleGrounds | None = None
    beside_pysheds: bool = True
    given_water: tuple[GivenWater, ...] = ()
    whole: bool = True
    chosen_alone: bool = False

    @property
    def frame(self) -> Frame:
        """The plane in which shapes are measured."""
        return self.lot.opened.source.grid.frame

    @cached_property
    def ground(self) -> tuple[Surface, Ground]:
        """Heights on the level shots, and the same with roofs, barriers and culverts in it."""
        opened = self.lot.opened
        if self.surface is not None:
            return self.surface, ground_of(self.surface, opened.layers, opened.site.rules)
        surface, ground, *_ = self._read
        return surface, ground

    @cached_property
    def _read(self) -> tuple[Surface, Ground, Estimate | None, Drainage]:
        """The raster's window as the likeliest ground, what is left of its noise, and which way water ran on the last
        ground that was tried; as it is where one ground is asked for."""
        opened = self.lot.opened
        found: list[Estimate] = []
        drained: list[Drainage] = []

        def drains(window: Ground) -> BoolArray:
            drained[:] = [drain_ground(window)]
            return lot_ground(opened.layers.parcel, drained[0], opened.site.rules["passing_by"].likely)[1]

        def bettered(surface: Surface, ground: Ground) -> Surface:
            likeliest, estimate = best_surface(surface, ground, opened)
            found.append(estimate)
            return likeliest

        surface, ground = read_lot_ground(
            opened, drains,
            bettered=bettered if grounds_wanted(opened.site.rules) > 1 else None,
            brought=on_shots if grounds_wanted(opened.site.rules) > 1 else None,
        )
        return surface, ground, found[0] if found else None, drained[0]

    @cached_property
    def possible(self) -> PossibleGrounds | None:
        """Grounds that lidar and level shots allow; None where one is asked for, or the ground is not of the raster."""
        if self.drawn is not None or grounds_wanted(self.lot.opened.site.rules) == 1:
            return self.drawn
        surface, _, estimate, _ = self._read
        if estimate is None or surface.grid != self.ground[0].grid:
            return None
        return draw_for_lot(self.lot.opened, estimate, surface.grid)

    @cached_property
    def drainage(self) -> Drainage:
        """Which way water runs."""
        ground = self.ground[1]
        # the window that was read last is drained already
        drained = self._read[3] if self.surface is None and self._read[3].ground is ground else drain_ground(ground)
        return with_pysheds(drained) if self.beside_pysheds else drained

    @cached_property
    def low_spots(self) -> tuple[LowSpot, ...]:
        """Nested depressions, but those struck out."""
        opened = self.lot.opened
        parcel, rules = opened.layers.parcel, opened.site.rules
        _, studied = lot_ground(parcel, self.drainage, rules["passing_by"].likely)
        listed = site_low_spots(self.drainage, rules, prefix="low-", within=None if self.whole else studied)
        found = found_on(listed, self.drainage, self.possible, called_from=rules["called_from"].likely)
        bears = bearing_ground(parcel, self.drainage, rules["surroundings"].likely)
        return edited_spots(found, studied & bears, self.edits)

    @cached_property
    def situation(self) -> Situation:
        """The lot with what stands on it."""
        opened, shots = self.lot.opened, self.lot.opened.shots
        points = () if shots is None else zip(shots.x, shots.y, shots.heights, strict=True)
        return describe_lot(
            opened.site, opened.layers, self.drainage, self.low_spots, opened.rmse,
            shots=tuple(Point(*each) for each in points), grounds=self.possible,
        )

    @property
    def passing_area(self) -> float:
        """Ground read whose water crosses a corner of the lot and passes by. [m2]"""
        lot = self.situation
        crossing = studied_ground(lot.drainage, lot.on_parcel) & ~lot.studied
        return float(crossing.sum()) * lot.grid.cell_area

    @cached_property
    def flow_paths(self) -> tuple[FlowPath, ...]:
        """Lines of flow."""
        lot = self.situation
        return flow_paths_of(
            lot.drainage, self.low_spots, lot.rules, outside=lot.studied & ~lot.on_parcel, studied=lot.studied,
            grounds=self.possible,
        )

    @cached_property
    def division(self) -> Division:
        """The drainage area by where its water collects."""
        return divide_lot(self.situation)

    @cached_property
    def reckoning(self) -> Reckoning:
        """Surfaces, soil and the design storm."""
        return _reckoning(self.lot, self.situation, self.ground[1])

    @cached_property
    def places(self) -> dict[str, SpotPlace]:
        """What kind of place each low spot is."""
        return spot_places(self.situation)

    @cached_property
    def water(self) -> LotWater:
        """The design storm on the lot as it is: runoff, and what stands."""
        return storm_on_lot(self.situation, self.reckoning, self.division, self.places)

    @cached_property
    def diagnosis(self) -> Diagnosis:
        """What is wrong."""
        return diagnose(self.situation, self.division, self.places, self.water)

    @cached_property
    def places_on_grounds(self) -> tuple[PlaceOnGrounds, ...]:
        """What stands and runs at each place of the lot on each ground that lidar allows."""
        soaks = soaks_on_lot(self.situation, self.reckoning)
        return places_on_grounds(self.situation, self.water, soaks=soaks)

    @cached_property
    def inputs(self) -> PlanInputs:
        """What a plan is made from beside the diagnosis."""
        opened, pump = self.lot.opened, self.lot.pump
        curve = None if pump is None else pump_curve(*pump)
        return PlanInputs(
            opened.site, opened.layers, self.situation, self.reckoning, self.lot.prices, curve, self.looks,
            self.unseen, self.cells, self.places_on_grounds, beyond=looked_no_farther(self.ground[0].warnings),
            chosen_alone=self.chosen_alone,
        )

    @cached_property
    def looks(self) -> tuple[OutfallLook, ...]:
        """What the swale check finds of each outfall."""
        looks = look_for_lot(
            self.lot.opened, self.lot.rain, self.situation, rains_run(self.lot.rain, self.situation.rules)[-1]
        )
        return with_given_water(looks, self.given_water, self.frame) if self.given_water else looks

    def take_looks(self, looks: tuple[OutfallLook, ...]) -> None:
        """Keep what another process found of each outfall, as if it was found here."""
        vars(self)["looks"] = looks

    @cached_property
    def unseen(self) -> tuple[HiddenCulvert, ...]:
        """Banks near the lot that may hide a culvert, each with the lot drained again as if one were open."""
        lot, layers = self.situation, self.lot.opened.layers
        known = (*layers.culverts.geometry, *(each.point for look in self.looks for each in look.culverts))
        banks = banks_near(lot.parcel, lot.drainage, self.low_spots, lot.rules, known)
        if not banks:
            return ()
        surface, reach = self.ground[0], lot.rules["culvert_end_reach"].likely
        # what a person struck out is compared with nothing that is
        now = self if self.edits is NO_EDITS else LotStages(self.lot, surface, drawn=self.possible)
        found = []
        for number, bank in enumerate(banks, start=1):
            opened = opened_along(surface, [CulvertLine(bank.opening)], invert_reach=reach)
            then = LotStages(self.lot, opened, drawn=now.possible)
            found.append(
                if_open(f"bank-{number}", bank, now.situation, now.diagnosis, then.situation, then.diagnosis)
            )
        return tuple(found)

    @cached_property
    def cells(self) -> CellDoubt | None:
        """What hangs on the raster's cells: the lot drained again in cells twice as wide."""
        opened, grid = self.lot.opened, self.ground[0].grid
        if max(grid.cell_width, grid.cell_height) < opened.site.rules["cells_trusted"].likely:
            return None
        surfaces = [in_wider_cells(self.ground[0], first) for first in (0, 1)]
        grounds = [ground_of(surface, opened.layers, opened.site.rules) for surface in surfaces]
        return what_hangs_on_cells(self.situation, [(each.grid, _drains_to_lot(each, opened)) for each in grounds])

    @cached_property
    def sited(self) -> Sited:
        """What would catch it, but what was struck out, and where it was moved to."""
        sited = edited_sites(site_works(self.inputs, self.diagnosis), self.situation, self.edits)
        # on ground that is none, slopes and all else are wrong too: said before any other stop
        seen = [said for said in self.ground[0].warnings if said.code == "raster_of_roofs_and_trees"]
        stops = tuple(reason("not_bare_earth", share=said["share"], step=said["step"]) for said in seen)
        return Sited(NOTHING_CAUGHT, (*stops, *sited.stops)) if stops else sited

    @cached_property
    def way_ground(self) -> WayInputs | None:
        """Where lines may end and what they are laid in; None where roofs are not known."""
        return way_ground(self.inputs, self.diagnosis) if self.situation.roofs_known else None

    @cached_property
    def fall_to_spare(self) -> Raster | None:
        """Of a small gravity line from each place to the outfall that leaves most; None without outfalls. [m]"""
        return None if self.way_ground is None else spare_everywhere(self.way_ground)

    @cached_property
    def odds_of_fall(self) -> Raster | None:
        """Share of the grounds that lidar allows on which that line has its fall. [%]"""
        return None if self.way_ground is None else odds_everywhere(self.way_ground, self.fall_to_spare)

    @cached_property
    def planned(self) -> LotPlan:
        """Lines, sizes, prices, the way that is chosen, and the storm with it, but what was struck out of that."""
        planned = plan_lot(self.inputs, self.diagnosis, self.sited, self.way_ground)
        return edited_plan(planned, self.inputs, self.edits)

    @cached_property
    def storms(self) -> tuple[OtherStorm, ...]:
        """The other storms of the table."""
        return other_storms(self.situation, self.reckoning, self.planned, self.planned.capacities)

    def standing(self, after: LotWater) -> tuple[StandingWater, ...]:
        """Low spots with their water in the design storm, as the lot is and with improvements."""
        reckoning, found = self.reckoning, self.diagnosis
        return low_spots_of(
            self.situation, found.places, found.troubles, self.water, after,
            excess_by_cell(self.division, self.water, reckoning.surfaces),
            lambda spot: infiltration_rate(
                group_at(reckoning.surfaces, spot.cells), compacted=reckoning.compacted
            ).likely,
            self._spills_above(),
        )

    def _spills_above(self) -> dict[str, float]:
        """Rain above which each low spot spills, by what drains to it directly. [m]"""
        found: dict[str, float] = {}
        for spot in self.situation.counted_spots:
            shares = [
                share
                for region, row in zip(self.division.regions, self.water.runoff, strict=True)
                if region.place == spot.id
                for share in row.shares
            ]
            rain = rain_that_fills(spot.volume, shares) if shares and spot.volume > 0.0 and not spot.enclosed else None
            if rain is not None:
                found[spot.id] = rain
        return found


def _drains_to_lot(window: Ground, opened: SiteInputs) -> BoolArray:
    _, studied = lot_ground(opened.layers.parcel, drain_ground(window), opened.site.rules["passing_by"].likely)
    return studied


def _reckoning(lot: LotInputs, situation: Situation, ground: Ground) -> Reckoning:
    site, layers = lot.opened.site, lot.opened.layers
    group = (site.soil.group or site.rules["default_soil_group"].name).upper()
    surfaces: SurfaceMap = map_surfaces(
        situation.grid,
        cover=site.soil.cover or site.rules["default_cover"].name,
        roofs=ground.kind == ROOF,
        paving=[
            (shape, "gravel" if "gravel" in str(kind).lower() else "paved")
            for shape, kind in zip(layers.hardscape.geometry, layers.hardscape["kind"], strict=True)
        ],
        soils=list(zip(layers.soils.geometry, layers.soils["group"], strict=True)),
        default_group=group,
    )
    return Reckoning(
        surfaces,
        lot.rain,
        site.soil.compacted,
        travel_rules(site.rules),
        site.rules["standing_followed"].likely,
    )

"""The jobs themselves, as a script or a notebook calls them."""

import os
from collections.abc import Callable
from typing import Any

from pipelines.library.results import CheckedSwales, ScreenedLot
from pipelines.library.site import Site
from pipelines.lot import screen_lot
from pipelines.swale import check_swale as check_swales_of_site

Progress = Callable[[str, float | None], None]


def screen(
    site: Site | str | os.PathLike[str] | None = None,
    /,
    *,
    progress: Progress | None = None,
    self_check: bool = False,
    **given: Any,
) -> ScreenedLot:
    """Screen one lot: where water comes from and stands, what carries it off, and how sure that is.

    Parameters
    ----------
    site : Site or path, optional
        A site, or a site file; without it, what `Site` takes is given by keyword.
    progress : callable, optional
        Told in words what is being done, and how far it is, from 0 to 1. [-]
    self_check : bool
        Also hold our own drainage against pysheds.
    **given : any
        As of `Site`: elevation, parcel, roofs, rain and so on.

    Returns
    -------
    ScreenedLot
        Layers, summary, verdict, warnings; `save` writes what the command line writes.

    Raises
    ------
    LotshedError
        If anything of the site cannot be used; the message says what, where and what to do.
    """
    with _site(site, given).on_disk() as path:
        return ScreenedLot(screen_lot(path, progress=progress or (lambda text, done: None), self_check=self_check))


def check_swale(
    site: Site | str | os.PathLike[str] | None = None, /, *, progress: Progress | None = None, **given: Any
) -> CheckedSwales:
    """Check a site's swales as outfalls: do they take the storm, where do they hold water, what would mend them.

    Parameters
    ----------
    site : Site or path, optional
        A site, or a site file, with `swales`; without it, what `Site` takes is given by keyword.
    progress : callable, optional
        Told in words what is being done, and how far it is, from 0 to 1. [-]
    **given : any
        As of `Site`.

    Returns
    -------
    CheckedSwales
        Layers, summary, verdict, warnings; `save` writes what the command line writes.

    Raises
    ------
    LotshedError
        If anything of the site cannot be used; the message says what, where and what to do.
    """
    with _site(site, given).on_disk() as path:
        return CheckedSwales(check_swales_of_site(path, progress=progress))


def _site(site: Site | str | os.PathLike[str] | None, given: dict[str, Any]) -> Site:
    if site is None:
        return Site(**given)
    if given:
        raise TypeError(f"{', '.join(given)} belong in the site that is given; or give all by keyword and no site")
    return site if isinstance(site, Site) else Site.read(site)

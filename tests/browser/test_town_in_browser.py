"""A town's page as people use it: opened, tapped, sorted and filtered, by mouse and by keys."""

from typing import Any

import pytest


def names(page: Any) -> list[str]:
    told: list[str] = page.locator("#lots-table tbody th").all_inner_texts()
    return told


@pytest.mark.parametrize("width", [360, 1400])
def test_opens_without_a_word_and_asks_for_nothing(town_file: str, opened: Any, width: int) -> None:
    watched = opened(town_file, width=width)
    assert watched.said == []
    assert [each for each in watched.asked if not each.startswith(("file:", "data:"))] == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    assert "3 of 4 lots finished" in watched.page.locator("#answer .lead").inner_text()


def test_the_most_need_comes_first_and_a_heading_turns_it(town_file: str, opened: Any) -> None:
    page = opened(town_file).page
    assert [name[:5] for name in names(page)] == ["</scr", "Lot 2", "Lot 1", "Lot 4"]
    page.locator("#lots-table th[data-key=need] button").click()
    # a lot without a need stays last either way
    assert [name[:5] for name in names(page)] == ["Lot 1", "Lot 2", "</scr", "Lot 4"]
    page.locator("#lots-table th[data-key=cost] button").click()
    assert names(page)[0] == "Lot 1"


def test_filters_leave_what_they_say(town_file: str, opened: Any) -> None:
    page = opened(town_file).page
    page.locator("#by-street").select_option("Alder Row")
    assert names(page) == ["Lot 2", "Lot 1"]
    page.locator("#by-need").fill("15")
    assert names(page) == ["Lot 2"]
    assert page.locator("#lots-count").inner_text() == "1 of 4 lots"
    page.locator("#by-need").fill("")
    page.locator("#by-street").select_option("")
    page.locator("#by-mode").select_option("gravity")
    assert names(page) == ["Lot 1"]
    page.locator("#by-cost").fill("4000")
    assert names(page) == []
    page.locator("#by-mode").select_option("")
    page.locator("#by-cost").fill("")
    page.locator("#by-status").select_option("failed")
    assert names(page) == ["Lot 4"]
    page.locator("#by-status").select_option("")
    page.locator("#by-text").fill("patio")
    assert names(page) == ["Lot 1"]
    page.locator("#by-text").fill("alder")
    assert names(page) == ["Lot 2", "Lot 1"]


def test_a_tap_on_the_map_gives_the_lots_answer_and_its_giver_leads_on(town_file: str, opened: Any) -> None:
    page = opened(town_file).page
    box = page.locator("#town-pane").bounding_box()
    # four lots in a row fill the map from side to side: the second of them
    page.mouse.click(box["x"] + box["width"] * 0.38, box["y"] + box["height"] / 2)
    told = page.locator("#picked")
    assert "Lot 2" in told.inner_text()
    assert "over the west edge" in told.inner_text()
    told.locator("button.pick", has_text="Lot 1").click()
    assert "Water stands at the patio" in told.inner_text()
    assert "cannot be judged" in told.inner_text()
    assert page.locator("#lots-table tr[aria-current=true] th").inner_text() == "Lot 1"


def test_keys_alone_will_do(town_file: str, opened: Any) -> None:
    page = opened(town_file).page
    pane = page.locator("#town-pane")
    pane.focus()
    for key in ("ArrowLeft", "ArrowLeft", "+", "Enter"):
        pane.press(key)
    assert page.locator("#picked h3").count() == 1
    pane.press("Escape")
    assert page.locator("#picked h3").count() == 0
    page.locator("#lots-table tbody tr:first-child button.pick").focus()
    page.keyboard.press("Enter")
    assert page.locator("#picked h3").inner_text().startswith("</script>")


def test_a_name_runs_no_script(town_file: str, opened: Any) -> None:
    watched = opened(town_file)
    asked: list[str] = []
    watched.page.on("dialog", lambda dialog: asked.append(dialog.message))
    watched.page.locator("#lots-table tbody tr:first-child button.pick").click()
    watched.page.wait_for_timeout(100)
    assert asked == []
    assert watched.page.locator("#picked img").count() == 0

"""A recipe by form: foods by name and grams, what follows of density and water; a pot of syrup."""

import asyncio
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from html import escape
from typing import Any, Final

import tomli_w

from moulddesign.core import MouldError, SpecError
from moulddesign.design import Design, Table, given
from moulddesign.kitchen import Recipe, part_density, part_water, recipe_loss
from moulddesign.kitchen.food_label import food_label, label_lines
from moulddesign.kitchen.ingredient_list import Law
from moulddesign.kitchen.piece_activity import activity_sentences, piece_activity
from moulddesign.kitchen.piece_water import piece_water, piece_water_sentences
from moulddesign.kitchen.recipe import WATER_READING_SD, Ingredient
from moulddesign.kitchen.syrup import SyrupPot, syrup, syrup_sentences
from moulddesign.page.design_form import DesignForm
from moulddesign.page.draft import FormField, FormSection, Tree, form_sections
from moulddesign.page.figure_help import FigureHelp, Found, SyrupReading
from moulddesign.page.jobs import LABEL_SHEET
from moulddesign.page.markup import (
    button,
    element,
    html_area,
    html_table,
    link,
    paragraph,
    set_enabled,
    set_visible,
    text_element,
)
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.page.task_form import TaskForm
from moulddesign.portion import Loss

SHOWN: Final = ("food", "mass_g", "density_g_per_ml", "price_per_kg")
"""What a line of the table asks for; a file may say more of an ingredient."""
RECIPE_FILE: Final = "recipe.toml"
LABELS_FILE: Final = "labels.pdf"
LABELS: Final = {"label_eu": Law.EU, "label_us": Law.US}
LINES: Final = {"crust_lines": "crust", "filling_lines": "filling"}


class RecipeRequest(Table):
    """A recipe as a form asks for it."""

    crust_lines: tuple[Ingredient, ...] = given((), "Of the whole piece, where it has no filling")
    filling_lines: tuple[Ingredient, ...] = given((), "Of the paste, without its centres")
    filling_cooking_loss: float | None = given(
        None, "Share of the mixed paste that cooks off as water", ge=0, le=0.9, main=True
    )
    finished_water: float | None = given(
        None, "Water in the finished piece, as a share of its mass: gives the loss", ge=0, lt=1,
        main=True,
    )  # fmt: skip
    crust_water: float | None = given(
        None, "Water in the finished crust, measured; what is usual of its dough where left out",
        gt=0, lt=1,
    )  # fmt: skip
    filling_water: float | None = given(
        None, "Water in the finished paste, measured; a point less than mixed where left out",
        gt=0, lt=1,
    )  # fmt: skip
    crust_air: float | None = given(None, "Share of the dough that is air", ge=0, le=0.5)
    filling_air: float | None = given(None, "Share of the paste that is air", ge=0, le=0.5)


def recipe_of_form(tree: Mapping[str, Any]) -> Recipe:
    """Return the recipe of a form's values.

    Raises
    ------
    SpecError
        A line has no food or mass, or a name is no food that is known; the field is the form's.
    """
    asked = RecipeRequest.of(tree)
    parts: dict[str, Any] = {}
    for key, part in LINES.items():
        lines = [line.plain() for line in getattr(asked, key)]
        if lines or part == "crust":
            more = {key: tree.get(f"{part}_{key}") for key in ("air", "cooking_loss")}
            parts[part] = {"ingredients": lines} | {k: v for k, v in more.items() if v is not None}
    try:
        return Recipe.of(parts)
    except SpecError as error:
        part, _, rest = error.field.partition(".")
        field = f"{part}_{rest.replace('ingredients', 'lines', 1)}"
        raise SpecError(field, error.value, error.need) from error


def without_empty_lines_of(tree: Tree) -> Tree:
    """Return a form's values without the empty lines at the end of its tables.

    Examples
    --------
    >>> without_empty_lines_of({"crust_lines": [{"food": "honey"}, {}], "filling_lines": [{}]})
    {'crust_lines': [{'food': 'honey'}], 'filling_lines': []}
    """
    made = dict(tree)
    for key in LINES:
        lines = list(made.get(key, ()))
        while lines and not lines[-1]:
            lines.pop()
        made[key] = lines
    return made


def recipe_sections() -> tuple[FormSection, ...]:
    """Return what is asked of a recipe: two tables, and what belongs to the whole."""
    (section,) = form_sections(RecipeRequest.model_json_schema())
    return (replace(section, fields=tuple(map(_with_shown, section.fields))),)


def _with_shown(field: FormField) -> FormField:
    if field.kind != "rows":
        return field
    known = {inner.name: inner for inner in field.fields}
    return replace(field, main=True, fields=tuple(replace(known[n], main=True) for n in SHOWN))


class RecipeForm(TaskForm):
    """The form of a recipe, and what follows from it as one types."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        super().__init__(
            session,
            design_form.schema,
            RecipeRequest,
            values={"crust_lines": [{}, {}, {}], "filling_lines": [{}, {}]},
            sections=recipe_sections(),
            asked=without_empty_lines_of,
        )
        self.design_form = design_form
        self._found: dict[str, Any] = {}
        self._recipe: Recipe | None = None
        self._typesetting = asyncio.Event()

    def lay_out_recipe(self) -> None:
        """Make the form, what follows, and the buttons that take it; before it a pot of syrup."""
        words = self.words
        FigureHelp(
            self.design_form.schema, SyrupReading, name="syrup", title=words["syrup"],
            says=words["syrup_help"], compute=self._syrup,
        ).lay_out({})  # fmt: skip
        with element("details", "recipe-form", id="recipe-form"):
            text_element("summary", words["recipe_by_form"])
            text_element("p", words["recipe_help"])
            self.add_form("recipe")
            self.answer = html_area("found")
            self.answer._props["role"] = "status"  # noqa: SLF001
            with element("p", "actions"):
                self.take = button(words["take_densities"], self._take, "primary")
                self.use = button(words["use_recipe"], self._use)
                self.labels = [
                    button(words[key], partial(self._label, law)) for key, law in LABELS.items()
                ]
                self.file = link(
                    words["download_recipe"], f"/files/{self.session.token}/{RECIPE_FILE}",
                    download=RECIPE_FILE,
                )  # fmt: skip
            self.label = html_area("label-text")
            self.sheet = link(
                words["download_labels"], f"/files/{self.session.token}/{LABELS_FILE}",
                download=LABELS_FILE,
            )  # fmt: skip
        self._work_out()

    def _syrup(self, reading: SyrupReading) -> Found:
        asked = reading.model_dump()
        weighed_g = asked.pop("pot_g")
        sentences = syrup_sentences(syrup(SyrupPot(**asked)), weighed_g)
        return {}, " ".join(map(self.words.said, sentences))

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        super()._edited(path, typed, refused)
        self._work_out()

    def _change_entries(self, change: Any, *arguments: Any) -> None:  # noqa: ANN401
        super()._change_entries(change, *arguments)
        self._work_out()

    def _work_out(self) -> None:
        """Show the densities and the loss of what stands there, if it is a recipe."""
        tree = self.asked(self.draft.tree)
        self._recipe, self._found, html = None, {}, ""
        lines = (*tree["crust_lines"], *tree["filling_lines"])
        if tree["crust_lines"] and all(map(_is_whole, lines)):
            try:
                self._recipe = recipe_of_form(tree)
                html = self._figures(self._recipe, tree.get("finished_water"))
                html += self._water(self._recipe, tree)
            except MouldError as error:
                self._recipe = None
                self.form.set_errors(self._errors_by_field(error))
                html = paragraph(self.words.error(error), "error")
        self.answer.set_content(self.words.numbers(html))
        self.label.set_content("")
        self._typesetting.set()
        set_visible(self.sheet, shown=False)
        for each in (self.take, self.use, *self.labels):
            set_enabled(each, can=self._recipe is not None)
        set_visible(self.file, shown=self._recipe is not None)
        if self._recipe is not None:
            text = tomli_w.dumps(self._recipe.plain())
            self.session.downloads[RECIPE_FILE] = text.encode()

    def _figures(self, recipe: Recipe, finished_water: float | None) -> str:
        words, rows = self.words, []
        for name, part in recipe.parts.items():
            found, water = part_density(part), part_water(part)
            density, sd = (
                f"{value:.3f}" for value in (found.density_g_per_ml, found.uncertainty_g_per_ml)
            )
            self._found |= {
                f"portion.{name}_density_g_per_ml": float(density),
                f"portion.{name}_density_sd_g_per_ml": float(sd),
            }
            part_name = words["crust" if name == "crust" else "paste"]
            rows.append((part_name, density, sd, "" if water is None else f"{100 * water:.1f} %"))
        heads = ("", "g/mL", "\u00b1 g/mL", words["water_share"])
        html = html_table(heads, rows, caption=words["recipe_by_form"])
        loss = self._loss(recipe, finished_water)
        if loss is not None:
            ratio, sure = f"{loss.ratio:.4f}", f"{loss.uncertainty:.4f}"
            self._found |= {"portion.loss": float(ratio), "portion.loss_uncertainty": float(sure)}
            html += paragraph(words["recipe_loss"].format(loss=ratio, uncertainty=sure))
        return html + paragraph(words["recipe_air"])

    def _water(self, recipe: Recipe, tree: Mapping[str, Any]) -> str:
        """Return what follows of the water of piece and parts, or why it does not."""
        portion, words = self.session.design.portion, self.words
        if portion.is_filled and recipe.filling is None:
            return ""  # still to be typed
        typed = {name: tree.get(f"{name}_water") for name in LINES.values()}
        measured = {name: value for name, value in typed.items() if value is not None}
        try:
            water = piece_water(recipe, portion, measured)
            activity = piece_activity(recipe, water)
        except MouldError as error:
            return paragraph(words.error(error), "error")
        sentences = (*piece_water_sentences(water), *activity_sentences(activity))
        return "".join(paragraph(words.said(each)) for each in sentences)

    def _loss(self, recipe: Recipe, finished_water: float | None) -> Loss | None:
        if finished_water is None:
            return None
        portion = self.session.design.portion
        return recipe_loss(
            recipe, portion, finished_water=finished_water, finished_water_sd=WATER_READING_SD
        )

    def _label(self, law: Law) -> None:
        """Show the label of a pack, and offer a sheet of it."""
        if self._recipe is None:
            return
        language = self.words.language
        design = self.session.design.with_values({"language": language})
        try:
            made = food_label(design, self._recipe, law)
            lines = "\n".join(label_lines(made, language))
            self.label.set_content(
                f"<pre>{escape(lines)}</pre>"
                + "".join(paragraph(self.words.said(remark)) for remark in made.remarks)
            )
        except MouldError as error:
            self.show_error(error)
            return
        finally:
            set_visible(self.sheet, shown=False)
            self._typesetting.set()
        self._typesetting = asyncio.Event()
        work = self._typeset(design, self._recipe, law, self._typesetting)
        self._sheet_task = asyncio.get_running_loop().create_task(work)

    async def _typeset(
        self, design: Design, recipe: Recipe, law: Law, cancelled: asyncio.Event
    ) -> None:
        """Offer the sheet of a label that is still shown when it is set."""
        try:
            async for _, sheet in self.session.workers.tasks.stream(
                LABEL_SHEET, design.plain(), recipe.plain(), law.value,
                limit_s=BUILD_LIMIT_S, cancelled=cancelled,
            ):  # fmt: skip
                self.session.downloads[LABELS_FILE] = sheet
                set_visible(self.sheet, shown=True)
        except MouldError as error:
            if not cancelled.is_set():
                self.show_error(error)

    def _take(self) -> None:
        if self._found:
            self.design_form.change(self._found)

    def _use(self) -> None:
        if self._recipe is None:
            return
        text = tomli_w.dumps(self._recipe.plain())
        try:
            name = self.session.uploads.keep(text.encode(), "toml")
            self.design_form.change({"batch.recipe": name})
        except MouldError as error:
            self.show_error(error)


def _is_whole(line: Mapping[str, Any]) -> bool:
    return bool(line.get("food")) and line.get("mass_g") not in (None, "")

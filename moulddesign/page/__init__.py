"""The local web page: the same design, builds and files as on the command line.

- `draft`: the fields that a schema asks for, and what stands in a form, right or wrong, with undo
  and redo.
- `texts`: the page's own words in each language, and errors in that language.
- `uploads`: kinds of uploads, how they are received, and the folder that keeps them.
- `design_files`: the files that a design may name here, and the zip of a set, read and written.
- `address`: the design in the page's address.
- `form_schema`: a form's description for the browser, in a language's words.
- `jobs`: what each task asks, and the jobs that a worker does.
- `own_list`: the list of one's own moulds, which the command line reads too; printed sets, opened.
- `owned_jobs`: what is asked of a mould that one owns, by how its size is known, and its jobs.
- `printed_sets`: a set that was printed: what is made for it later, and its prints by calipers.
- `session`: one open tab: its last valid design, the work that is done for it, and its files.
- `markup`: HTML: plain elements, the form's components, figures and the answers of the tasks.
- `finding_actions`: what can be done with a finding: the change that mends it, and its place.
- `finding_list`: findings in a person's words, and the changes that mend them.
- `face_entries`: what of a carved face can be tapped and changed.
- `delivery`: what was made: three cards, and each file with what it is for.
- `choices`: the first screen: the few things that a baker chooses, and what each changes.
- `choice_pictures`: pictures of what the first screen offers, shipped or of uploads.
- `design_form`: the form of the design: what is typed becomes a draft, and a valid draft is built.
- `view_bodies`: what the 3D view draws: light meshes with normals, baked light and cut faces.
- `view_element`: the 3D view as an element; its scripts are in `scene/`.
- `task_form`: a form with a button that calculates an answer.
- `fit_result`: HTML of what fits a mould that one owns, and the row that is recommended.
- `set_task`: the place of a set that was printed: parts for it, and caliper readings.
- `owned_task`: the task of a mould that one owns.
- `figure_help`: small forms that work out one figure: density, firmness, an error, syrup.
- `workshop_place`: the workshop's own place.
- `recipe_form`: a recipe by form: foods by name, densities, loss and water that follow.
- `batch_sheet`: the sheet of a batch to print.
- `tasks`: the tasks beside the design: a mould that one owns, a trial bake, a batch.
- `layout`: the page of one tab: the form, the 3D view and the results.
- `guard`: who may ask the page for anything, and how long a request's headers may take.
- `serve`: the page as a program: a port, workers, routes, and a clean end.
"""

from typing import Final

LIBRARIES: Final = ("moulddesign.page.jobs",)
"""What all workers need, loaded once for them where the system can."""

"""The local web page: the same design, builds and files as on the command line.

- `form_schema`: the form's description for the browser: fields of a schema in a language's
  words.
- `texts`: every word that the page shows, in one file a language, and findings in that
  language.
- `uploads`: what comes in: uploads, the files that a design may name, a whole set in a zip, the
  design in the address.
- `jobs`: the jobs that a worker knows, what each task asks, and what the 3D view is sent.
- `workers`: the processes that build, and how the page sees them: one job at a time, with a
  time limit.
- `session`: one open tab: its last good design, the work that goes on for it, and the files
  that it may fetch.
- `markup`: HTML: plain elements, our two browser components, figures, findings, files and the
  answers of the tasks.
- `draft`: what stands in the form, right or wrong, the last design that was right, and the
  fields that a schema asks for.
- `design_form`: the form of the design: what is typed becomes a draft, and a good draft is
  built.
- `tasks`: the tasks beside the design: a mould that one has, a trial bake, a batch.
- `layout`: the page of one tab: what is asked, what is seen, what comes of it.
- `serve`: the page as a program: a port, workers, routes, who may ask for anything, and a clean
  end.
"""

"""The learning room: what a measurement comes to, as words, drawings and numbers, and written back into files.

`fit_words` and `promise_words` tell what `kerfwave.measure` found. `edit` changes driver and recipe files that a person
wrote without touching anything else in them, `records` keeps what was measured on a finished speaker beside its spec.
Text in, text out: `kerfwave.fit_jobs` reads and writes the files. Import from the module that a thing lives in.
"""

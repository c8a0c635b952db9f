"""Pages in HTML: a run, and the squad.

- ``body``: The drawing of the body line at touchdown and toe-off.
- ``charts``: Charts of a run page: a figure by step, an angle through every swing, contacts along
  time.
- ``compare_page``: The page of two runs side by side: phase by phase and step by step.
- ``doubt``: What is wrong with a run as a whole, and what of it can still be used.
- ``drawing``: Axes of a chart as SVG written straight away: scales, ticks and shapes.
- ``labels``: What each figure is called on paper and screen: plain words, unit, factor, decimals.
- ``legs``: The drawing of shin and foot at each touchdown: where the lines go, to scale.
- ``rendering``: Templates filled in: everything is escaped, style and script are put into the
  page.
- ``rows``: The tables of a run page: steps, left against right, uncertainty by part.
- ``run_page``: The page of one run, put together from its view.
- ``squad_page``: The index: a row for each run, what comes back in each athlete's runs, filter and
  sort.
- ``story``: What a run page says in words: what matters, what is in doubt, what each flag means.
- ``svg``: Figures of matplotlib as SVG that lives inside a page.
- ``thinning``: Very long runs: pages show a part of the steps, evenly spread, and say so.
- ``view``: One run as the pages need it: read from its archive, held against its targets.
- ``writing``: The whole report remade from the archives in a folder of results, nothing processed
  again.
"""

"""The update for volunteers: statistics, pictures and the page, from a frame of counts.

All but :mod:`.kept` is pure. :mod:`.outline` and :mod:`.frame` make what is needed from a study and
its facts; everything else starts from a data frame and an :class:`~.outline.Outline`, and ends in
frozen values, text and bytes. :func:`~.comparison.compare` is the statistics,
:func:`~.content.make_content` the words, tables and pictures, :func:`~.page.render_page` the HTML
and :func:`~.printed.render_pdf` the PDF.
"""

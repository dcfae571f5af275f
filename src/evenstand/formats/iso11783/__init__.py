"""ISO 11783-10 task data, versions 3 and 4: what a task controller and a desk exchange.

The layout was learnt from the element letters and byte orders listed in the project's references and from an open reader of the
same files, against which the tests hold every byte; the text of the standard itself was not read.
"""

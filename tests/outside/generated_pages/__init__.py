"""Generated pages: reports of walls at random with hostile texts, and the wall in browsers.

They are judged from outside. A page is read with html.parser and json alone; the hashes of its
policy are calculated again. Comparisons are of reports that were changed in known places. The wall
in browsers is asked by an HTTP and WebSocket client of our own, after RFC 9110 and RFC 6455.
`python -m tests.outside.generated_pages [N]` prints all that went wrong; the slow test takes fewer.
"""

"""Generated walls for the workshop: the bench pack and the cutter's files, judged from outside.

What is true is counted here from the display file's words alone: strips, runs, pieces, wires,
joints, holes, walls. What foreglow says is read from its PDF (by pypdf), its DXF (by ezdxf)
and its JSON.
`python -m tests.outside.generated_bench [N]` prints all that went wrong; the slow test takes fewer.
"""

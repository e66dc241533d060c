"""How strong a user's tests are: mistakes put into their code, one at a time, while the tests run.

`mutation` says which mistakes a wall admits, `running` runs the tests with one of them, `hook` puts
it into the user's code in the process of the tests, `change` is what it does there, `verdict` is
the answer.
"""

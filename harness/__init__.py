"""Replays test patterns through code under test, and explains what is wrong.

In a test or a script:

    report = harness.check(display, to_wire)    # what `foreglow check` does
    report.verdict                              # 'pass', 'cannot tell', 'warning', 'fail'
    for finding in report.findings:             # what, where, evidence, remedy, severity
        print(finding.what)
    report.figures["map"]["leds_right"]         # figures by check and name
    report.to_json()                            # the same as `foreglow check --json` prints

`harness.assertions` has `assert_map` and `assert_right`, which fail a test in the same words.
DEVELOPERS.md describes the other modules. A name is imported when it is first used.
"""

import lazy_loader

from foreglow.names import judge

judge()

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

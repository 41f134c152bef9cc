"""Setup gauges to print: flat plates whose functional faces carry a recipe's settings to the grinder.

Every gauge is a plan with heights (`gauge.Gauge`), made into a solid by `build`, packed on a bed by `plate`, written by
`writing` and measured again on the written file by `checks`.
"""

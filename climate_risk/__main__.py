"""Lets ``python -m climate_risk`` do what ``climate-risk`` does."""

from climate_risk.cli import run

if __name__ == "__main__":
    run()

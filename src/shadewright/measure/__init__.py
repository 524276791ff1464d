"""Measuring from photographs: pupils from tubes, proof of a finished hood, a rim traced from paper."""

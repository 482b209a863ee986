"""Estimates from survey samples: weights, designs, replicates."""

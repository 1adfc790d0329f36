"""Training: makes its own pictures, fits the network, writes weights and calibration.

Needs the extra ``train`` (PyTorch, ONNX). Nothing here is imported when sheets are read.
"""

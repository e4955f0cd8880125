"""Reading what loggers write: how a file is built (examine), then what it says (read).

``source`` turns bytes into lines of UTF-8; ``dialect``, ``header``, ``clock`` and ``columns`` each
answer one question about a sample of them; ``examine`` joins the answers into a frozen ``Plan``;
``read`` follows the plan through the file in bounded pieces.
"""
